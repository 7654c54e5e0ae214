"""Live: a local page that answers while the plan is edited; a server of its own, on this machine alone."""

"""Names of lines and joints: from texts beside them, from points of the plan, and from an earlier drawing."""

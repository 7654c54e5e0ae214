"""Where the film may go, and how to run a hill that is too hard for a train."""

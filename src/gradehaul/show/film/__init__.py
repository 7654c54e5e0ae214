"""Where the film may go, in text and tables."""

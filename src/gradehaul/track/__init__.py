"""Track: geometry along the rail, from the plan to the alignment of every track."""

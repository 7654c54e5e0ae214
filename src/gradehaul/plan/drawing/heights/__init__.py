"""Heights of a drawing: of turns drawn over one another, of track at z = 0, along the lines and at their joints."""

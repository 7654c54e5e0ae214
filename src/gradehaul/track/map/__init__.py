"""Where tracks lie in the plane, and whether loops close."""

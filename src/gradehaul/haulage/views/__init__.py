"""What pictures show: the plan view, long sections, tracks from above."""

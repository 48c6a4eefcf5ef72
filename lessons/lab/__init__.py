"""Lab day: the experiment of a plan, what teams enter, and what it says."""

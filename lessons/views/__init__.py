"""Pages of lessons."""

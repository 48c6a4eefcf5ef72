"""From the rows of a room to its plan and back: read, lay out, estimate, choose, publish."""

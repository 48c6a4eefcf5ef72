"""A part cut into layers: contours, the shapes of walls, skins and infill, and the lines drawn for them."""

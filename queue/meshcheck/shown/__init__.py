"""How a checked part is shown: a compact mesh for our own viewer, and rendered pictures of it."""

"""From pixels to curves: iso-lines, corners, and the few lines, arcs and cubics that fit them."""

"""How blades wear: metres of equal effect, wear along an edge, and what a measurement says of it."""

"""Dividing stock into parts: physical rules of a cut, the search for good layouts, lower bounds."""

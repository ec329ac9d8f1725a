"""The Shearwright service: engine, drawing, store and HTTP interface."""

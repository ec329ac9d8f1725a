"""The HTTP edge: one module a resource; parse by the contract, ask engine or store, answer."""

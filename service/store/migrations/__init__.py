"""Numbered steps that bring a database to the present tables; see :mod:`service.store.migrate`."""

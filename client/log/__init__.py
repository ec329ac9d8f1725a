"""The log: what was done at the shear, one module a kind of entry.

Everything one call tells is one transaction (:mod:`.batch`): the events, the counts of the rack, the
pieces done.
"""

"""What a workstation keeps on its own disk.

Two SQLite files that never share a transaction. The *store* holds what was written down here and is
flushed to disk before anyone is told so (:mod:`.outbox`, :mod:`.plans`, :mod:`.stock`); the *cache*
holds what the centre sent and may be deleted at will (:mod:`.records`).
"""

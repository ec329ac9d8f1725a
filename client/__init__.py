"""The Shearwright workstation: cache, outbox, offline planning and sync."""

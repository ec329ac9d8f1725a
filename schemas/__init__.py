"""The wire contract, shared by service and workstation."""

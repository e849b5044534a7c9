"""The wire between rig and host: bytes to messages and back, both roles, no I/O."""

"""The commands, one file each: what they take, and what they put together."""

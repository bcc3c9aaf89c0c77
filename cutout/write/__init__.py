"""Writers: each takes a Work and returns the bytes of one file."""

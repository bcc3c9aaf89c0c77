"""Tool paths for a router."""

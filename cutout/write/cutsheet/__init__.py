"""The cut sheet: what to do at the saw, as a page and as a PDF."""

"""SVG drawings, read exactly where that is possible, else through pixels."""

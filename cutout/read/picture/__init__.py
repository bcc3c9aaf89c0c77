"""Pictures of pixels: decoded, straightened, the figure parted from its ground."""

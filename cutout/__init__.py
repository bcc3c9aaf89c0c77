"""Turn a silhouette into a panel cutout that can really be sawn."""

__version__ = "0.1.0"

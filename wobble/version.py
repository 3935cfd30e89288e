"""The package's version, written into every result."""

__all__ = ["__version__"]

__version__ = "0.1.0"

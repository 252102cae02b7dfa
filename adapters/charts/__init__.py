"""Pictures of what is decided, drawn by matplotlib where it is installed (`pip install ligule[charts]`)."""

from adapters.charts.lawn import ChartsMissing, lawn_figure, picture

__all__ = ["ChartsMissing", "lawn_figure", "picture"]

"""Tables as people keep them: rows of cells as text, before a column map says what they mean."""

from qa_engine.intake.grids.grid import FILLED, Grid, GridPiece, TopRow, joined_heads
from qa_engine.intake.grids.opening import TextForm, grids_of

__all__ = ["FILLED", "Grid", "GridPiece", "TextForm", "TopRow", "grids_of", "joined_heads"]

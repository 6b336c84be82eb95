"""Answer what happened in the furnace: thousands of patterns of one specimen while it reacts.

`open_frames` looks at a stack or a folder; `run_series` fits it chunk by chunk (`chunks`: small files that are whole or
not there, so that an ended run goes on where it was) and collates them over time and temperature; `frame_fit` fits one
frame, from its neighbour where that goes; `events` says when the A15 appears, and which phases come and go.
"""

from xrdorder.series.furnace_run import FurnaceRun, run_series

__all__ = ["FurnaceRun", "run_series"]

"""Minutes and hours that stand for the samples of long windows: columns, files, their making."""

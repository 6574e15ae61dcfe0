"""The page served to this computer for placing gates by hand."""

"""Files of fixes, read into recordings and written."""

"""What a run has to tell, as a tree of blocks; pages, PDF and workbook are made from it."""

"""Writers: one file a format.  `folder` writes a plan; `report` is the page to look at."""

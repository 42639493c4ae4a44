"""The gallery: the pictures that README.md shows, the numbers in them, and the scripts of both.

`python -m figures` computes all numbers again and draws all pictures (about six minutes, nearly all of it the
study); `python -m figures hour front` only those.  Run it from the top folder, with the extra [test]; the
page needs Chromium.

Every picture NAME has three files here: NAME.py, whose `compute` makes a small table and whose `draw` turns
that table, and nothing else, into a PNG; NAME.csv, the table; NAME.png, which holds the digest of its table.
`tests/house/test_gallery.py` computes the tables again and compares.

hour   trucks, light and motion of one hour in three aisles of the packaged pallet reserve
front  the same site under other timeouts and levels: energy against time in dim light
power  its load in the quarter-hours of one working day
page   the page to mail, at the file's settings and with a shorter timeout
study  placement, zoning, timeout and skew on four sites (`scenarios/studies/sites-study.toml`)
"""

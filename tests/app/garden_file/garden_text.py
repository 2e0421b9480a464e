"""A garden file with nothing wrong in it, to add to and to spoil."""

GOOD = """\
[site]
name = "lane"
latitude = 52.35
longitude = -6.46
zone = "Europe/Dublin"

[[box]]
name = "north"

[[probe]]
id = "28-3c01b556e1a2"
box = "north"
place = "air"
"""

LOOSE = '[[spot]]\nname = "lane"\n[[probe]]\nid = "28-00000000000b"\nspot = "lane"\nplace = "air"\n'

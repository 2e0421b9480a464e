"""Every text of the page, in one place, so that it can be put into another language."""

from __future__ import annotations

NONE = "no reading"
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November", "December")  # fmt: skip
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
DAY = "{weekday} {day} {month}"
SPANS = (
    (86_400, "1 day", "{} days"),
    (3_600, "1 hour", "{} hours"),
    (60, "1 minute", "{} minutes"),
    (1, "1 second", "{} seconds"),
)

TITLE = "{site} · cold frames"
SMALL_TITLE = "{title} · Propstick"
SKIP = "To the boxes"
LANG = "en"
WAYS = "Pages"
HOME, NIGHTS, SEASON = "The boxes", "Nights", "Season"

# The sentence: does anything need me now?
NEEDS_ONE = "Yes: {message}"
NEEDS_MANY = "Yes: {boxes} need you. First: {message}"
NEEDS_ALIKE = "Yes: {deed} {boxes}. First: {message}"
BY_NOW = " Now it is {value}."
OVERDUE = "Yes: {deed} — it was due by {by}."
DUE = "Soon: {deed} by {by}."
DUE_NOW = "Yes: {deed}, when you can."
SEEN = "Nothing new: you have seen it, and it still stands. {message}"
CAN_WAIT = "Nothing presses. It can wait: {message}"
NOTHING = "No: nothing needs you now."
NOTHING_KNOWN = "Perhaps: {boxes} gives no fresh air reading. Nothing else needs you. Go and look."
ALSO_SILENT = " Nor does {boxes} give a fresh air reading: go and look."
CANNOT_SAY = "Cannot say: what is shown here is {age} old. Go and look."
CANNOT_SAY_STOOD = (
    "Cannot say: what is shown here is {age} old. When last heard of, {boxes} needed you. Go and look."
)
STORE_TROUBLE = "Cannot say: the readings cannot be read just now. Go and look."
NOT_STARTED = "Cannot say: the watch has not read the boxes yet."
NOT_STARTED_HELP = "It reads once every {step}. If this stays, see whether `propstick watch` runs on the Pi."

FRESH = "Read {age} ago, at {clock}."
STALE = "OLD: last read {age} ago, at {clock}. The watch does not run, or cannot store what it reads."
VALUE_OLD = "(read {age} before)"

DEEDS = {
    "open": "open {box}",
    "prop": "prop {box}",
    "close": "close {box}",
    "cover": "close and cover {box}",
    "uncover": "take the cover off {box}",
    "air": "air {box}",
    "leave": "leave {box} as it is",
}
COVER_SHUT = "cover {box}"
"""Of a lid that is shut already."""
ADVICE = "{deed}{by}: {reason}."
ADVICE_LEAVE = "{deed}, that is right{by}. {reason}."
AS_IT_SHOULD = "as it should be: "
"""How the brief begins its reason where a lid can stay."""
ADVICE_BY = " by {by}"
NO_FORECAST = "No forecast yet: judge by the sky."
DOUBTS = {
    "changed": "It does not behave as it used to, so its forecasts are less sure until it is learnt again. "
    "See whether something in it, on it or about its probes has changed.",
    "watered": "Watered lately, as it seems: its forecasts are less sure for some hours.",
    "dimmed": "It gets hardly any sun: its forecasts are less sure.",
    "pressed": "Its air probe reads as the soil: its forecasts are less sure.",
    "as-outside": "By night its air probe reads as the outside: its forecasts are less sure.",
}
LID_SHUT, LID_OPEN, LID_PROPPED, LID_UNKNOWN = "shut", "wide open", "propped, {percent} % open", "not known"
LID_NOW = "Lid {lid}{source}"
LID_NEXT = "next {lid}"
COVER_ON, COVER_OFF = "next covered", "next uncovered"
DONE = "Done:"
LID_SOURCE = {"estimate": " (by estimate)", "told": " (as told)", "contact": " (by its contact)"}
COVERED = "covered"
NEXT = "next"
NO_LID = "lid not known"

AIR, SOIL, OUTSIDE, ROOM, SOWN = "Air", "Soil", "Outside", "Room left", "Sown"
STEADY = "→ steady"
TRENDS = (
    (-3.0, "↓ falling fast"),
    (-0.3, "↘ falling"),
    (0.3, STEADY),
    (3.0, "↗ rising"),
)
TREND_TOP = "↑ rising fast"
PER_HOUR = "{rate} an hour"
LIMIT_NAMES = {"heat": "too hot, {limit}", "prop": "to prop, {limit}", "frost": "too cold, {limit}"}
ROOM_LEFT = "{room} left"
ROOM_GONE = "past it by {room}"
ROOM_MINUTES = ", about {span} at this rate"
HOUR_AND_A_HALF = "an hour and a half"
TONIGHT_BELOW = "; tonight {room} below it"
TONIGHT_ABOVE = "; tonight {room} above it"
NO_LIMIT = "no room known: no air reading"

ALARM_STATES = {
    "unacknowledged": "not seen yet",
    "acknowledged": "seen, still stands",
    "returned": "over, not seen yet",
    "shelved": "shelved until {until}",
    "suppressed": "held back by a wider fault",
    "out-of-service": "out of service",
}
ALARM_SINCE = "{state}, since {since}"
ALARM_PEAK = "; worst {peak} at {clock}"
ALARM_EXPECTED = "; at worst {peak} expected, foretold at {clock}"
ACKNOWLEDGE, SHELVE, UNSHELVE = "I have seen it", "Shelve it", "Take it off the shelf"
SHELVE_FOR = "for"
SHELVE_HOURS = {"1": "1 hour", "4": "4 hours", "12": "12 hours", "24": "a day", "72": "3 days"}
ABOUT = "{deed}: {message}"
PENDING = {
    "acknowledge": "You have seen it; the watch takes it up with its next row.",
    "shelve": "To be shelved; the watch takes it up with its next row.",
    "unshelve": "Comes off the shelf with the next row.",
}
SAID = {"over": "That alarm was over already; nothing was changed."}
ALARM_ELSEWHERE = "The rest of the garden"

SOWN_SINCE = "{crop}, sown {day}"
SOWN_UNDATED = "{crop}"
SOWN_UP = ", up from about {day}"
SOWN_PICK = ", first picking about {day}"
BRIEFS = {"morning": "The morning's brief", "evening": "The evening's brief"}
BRIEF_AT = "{which}, {when}"

LOST = "No line to the Pi: what you see may be old. Trying again."
BACK = "Line to the Pi is back."
NO_SCRIPT = "Without script this page is read anew every minute."

# Nights
NIGHTS_LEAD = "The nights that were watched, newest first. A night has the date it begins."
NIGHTS_HEADS = ("Night", "Lowest inside", "Outside", "First said")
NO_NIGHTS = "No night has been watched yet. The first one is here tomorrow."
LOWEST_IN = "{value} in {box}"
SAID_FOR = "{value} ({low} to {high}) for {box}"
NIGHT_OF = "Night of {day}"
WORST = "Coldest {place}: {value} at {clock}{beyond}."
WORST_IN = "in {box}"
WORST_BELOW = ", {room} below its limit of {limit}"
WORST_ABOVE = ", {room} above its limit of {limit}"
NOT_MEASURED = "{box}: nothing was measured."
HAPPENED = "What happened"
NOTHING_HAPPENED = "No alarm and no notice."
EVENT_ALARM, EVENT_NOTICE = "Alarm", "Notice"
EVENT_HEADS = ("When", "What", "Words")
DOWNLOAD = "Take it with you"
DOWNLOADS = {
    "picture.svg": "picture (SVG)",
    "picture.png": "picture (PNG)",
    "readings.csv": "readings (CSV)",
    "readings.senml": "readings (SenML)",
}
WHAT_IF = "What if"
IF_BOX, IF_ACTION, IF_AT, IF_ASK = "the lid of", "had been", "at", "Show it"
IF_ACTIONS = {"closed": "closed", "propped": "propped", "open": "wide open", "covered": "covered"}
IF_ANSWER = "{box} {action} at {clock}: lowest about {value} ({low} to {high}), instead of {observed}."
IF_HANDLE = "The time of the what-if: drag it along the night, or use the arrow keys"
SHOW, SHOW_ALL = "Show", "every box"
BESIDE, BESIDE_ASK, BESIDE_NONE = "beside it", "Put beside", "nothing"
BESIDE_BOX, BESIDE_NIGHT = "Another box, same night", "Another night"
NO_SUCH_BOX = "Box: there is no {box!r}; the boxes are {boxes}."
NO_NIGHT = "No such night"
BACK_TO_NIGHTS = "All nights"

# Season
SEASON_TITLE = "Season, {first} to {last}"
SEASON_HEADS = ("Box", "Warmth gathered", "Too hot", "Too cold", "Nights saved", "Nights below its limit")
SEASON_TABLE = "Box by box, the warmest first"
SEASON_WARMTH = "Warmth gathered above {base}, in degree days; each ring is a sowing."
SEASON_UNITS = "Warmth is in {unit} days above {base}; too hot and too cold in {unit} hours beyond the limit."
SAVED = "A night is saved where it went below the box's limit outside and not inside."
SPOT = "{box} ({spot})"
SOWING_HEADS = ("Sown", "Box", "On", "Warmth since")
SOWINGS_TABLE = "Sowings"
UNKNOWN = "not known"

# Signing in, and the answer to a notice
SIGN_IN = "Sign in"
PASS_PHRASE = "Pass phrase"
WRONG_PHRASE = "That was not the pass phrase."
TOO_MANY = "Too many wrong ones. Try again in {seconds} seconds."
SEEN_TITLE = "Seen?"
HAVE_SEEN = "I have seen {box}"
SEEN_MEANS = (
    "This tells the watch, and whoever else is told, that a hand is on its way. "
    "Nothing is opened or closed by it."
)
ALSO_TOLD = "The same notice also told of this:"
THANKS_TITLE = "Thank you"
THANKS = "The watch takes it up with its next row."
TO_BOXES = "The boxes"
ALARM_GONE = "The alarm is gone."
ANSWERED_TITLE = "Answered already"
LINK_USED = "This link was good once, and was used."
NO_LINK_TITLE = "No such link"
NO_LINK = "It is not one of this watch, or older than a week."
LATE_TITLE = "Too late"
LINK_LATE = "This link was good for a day."

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
SKIP = "To the boxes"
LANG = "en"
WAYS = "Pages"
HOME, NIGHTS, SEASON = "The boxes", "Nights", "Season"

# The sentence: does anything need me now?
NEEDS_ONE = "Yes: {message}"
NEEDS_MANY = "Yes: {boxes} need you. First: {message}"
NEEDS_MORE = "Yes: {message} There is more in {boxes}."
OVERDUE = "Yes: {deed} — it was due by {by}."
DUE = "Soon: {deed} by {by}."
DUE_NOW = "Yes: {deed}, when you can."
SEEN = "Nothing new: you have seen it, and it still stands. {message}"
CAN_WAIT = "Nothing presses. It can wait: {message}"
NOTHING = "No: nothing needs you now."
NOTHING_KNOWN = "Nothing that is known needs you, but {boxes}: no fresh air reading. Go and look."
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
ADVICE = "{deed}{by}: {reason}."
ADVICE_BY = " by {by}"
LID_SHUT, LID_OPEN, LID_PROPPED, LID_UNKNOWN = "shut", "wide open", "propped, {percent} % open", "not known"
LID_NOW = "Lid {lid}{source}"
LID_NEXT = "next {lid}"
DONE = "Done:"
LID_SOURCE = {"estimate": " (by estimate)", "told": " (as told)", "contact": " (by its contact)"}
COVERED = "covered"
NEXT = "next"
NO_LID = "lid not known"

AIR, SOIL, OUTSIDE, ROOM, SOWN, ALARMS = "Air", "Soil", "Outside", "Room left", "Sown", "Alarms"
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

"""The words and numbers of board contract version 1, as a board needs them.

A copy of what `core/contract.py` says, since nothing of the core is on a board; a test holds them together.
"""

VERSION = 1
SEEN_LAG_MAX = 20
PAYLOAD_MAX = 2048
NUMBER_MAX = 2**53

# Counts stay within small integers of a 32-bit board, so that an interrupt never has to ask for memory.
COUNT_MAX = 400_000_000
# Where a motion without a bound would end: further than any cloth.
ENDLESS = 200_000_000

UP, LOST, OFF = "up", "lost", "off"

BOOT = "boot"
TOLD = "told"
STARTED = "started"
PROGRESS = "progress"
ARRIVED = "arrived"
STOPPED = "stopped"
STALLED = "stalled"
UPPER_SWITCH = "upper-switch"
LOWER_SWITCH = "lower-switch"
NOT_FOUND = "not-found"
BUTTON = "button"
WIND = "wind"
REFUSED = "refused"
WHY = (
    BOOT,
    TOLD,
    STARTED,
    PROGRESS,
    ARRIVED,
    STOPPED,
    STALLED,
    UPPER_SWITCH,
    LOWER_SWITCH,
    NOT_FOUND,
    BUTTON,
    WIND,
    REFUSED,
)

TELL, GO, STOP, SEEK, SLEEP, WAKE = "tell", "go", "stop", "seek", "sleep", "wake"
DO = (TELL, GO, STOP, SEEK, SLEEP, WAKE)

STAY = "stay"
THEN = (SLEEP, STAY)

UPPER, LOWER = "upper", "lower"
TOWARD = (UPPER, LOWER)

STALL = "stall"
SENSES = (UPPER_SWITCH, LOWER_SWITCH, STALL)

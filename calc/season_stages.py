"""The words for a log's stage in the season, as they stand in the table log_season."""
from __future__ import annotations

WAITING, SPAWN_RUN, MAY_FRUIT, RESTING = "not yet inoculated", "spawn run", "may fruit", "resting"
READY, SOAKING, PICKING, DORMANT, GONE = "ready to soak", "soaking", "pins and picking", "dormant", "gone"

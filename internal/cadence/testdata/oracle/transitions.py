#!/usr/bin/env python3
"""Lists the clock changes of some zones, read from tzdata by Python's zoneinfo.

Run from the repository root:
  python3 internal/cadence/testdata/oracle/transitions.py > testdata/published/clock-transitions.json
Offsets are found minute by minute, so that nothing but the zone files decides.
"""
import datetime as dt
import json
import pathlib
import sys
import zoneinfo

ZONES = ["America/New_York", "Europe/London", "America/Sao_Paulo", "Australia/Lord_Howe",
         "Asia/Kathmandu", "Pacific/Apia", "America/Chicago", "Europe/Berlin"]
FIRST, LAST = 2010, 2026  # later rules are forecasts and may change


def offset(t, zone):
    return int(t.astimezone(zone).utcoffset().total_seconds())


def changes(name):
    zone = zoneinfo.ZoneInfo(name)
    t = dt.datetime(FIRST, 1, 1, tzinfo=dt.timezone.utc)
    end = dt.datetime(LAST + 1, 1, 1, tzinfo=dt.timezone.utc)
    hour, minute = dt.timedelta(hours=1), dt.timedelta(minutes=1)
    while t < end:
        if offset(t, zone) != offset(t + hour, zone):
            m = t
            while offset(m, zone) == offset(t, zone):
                m += minute
            yield {"zone": name, "utc": m.strftime("%Y-%m-%dT%H:%M:%SZ"),
                   "before": offset(t, zone), "after": offset(m, zone)}
        t += hour


def version():
    for folder in zoneinfo.TZPATH:
        path = pathlib.Path(folder, "tzdata.zi")
        if path.exists():
            return path.read_text().splitlines()[0].lstrip("# version").strip()
    return "unknown"


rows = [json.dumps(row) for name in ZONES for row in changes(name)]
print('{\n "source": "IANA tzdata %s, read by Python %s zoneinfo",' % (version(), sys.version.split()[0]))
print(' "made_by": "internal/cadence/testdata/oracle/transitions.py",')
print(' "zones": %s,' % json.dumps(ZONES))
print(' "first_year": %d, "last_year": %d,' % (FIRST, LAST))
print(' "changes": [\n  ' + ",\n  ".join(rows) + "\n ]\n}")

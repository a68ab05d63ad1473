#!/usr/bin/env python3
"""Keep every event of every agent in an SQLite file, without loss.

    history.py FILE HOST [PORT]        (Debian: apt-get install python3-paho-mqtt)

The broker keeps what this reader has not acknowledged, and the library acknowledges an
event after store() has put it on the disk. So the reader may be killed at any moment:
it goes on where it was, and the key makes a repeat of no effect. It needs a broker that
keeps sessions, which the one inside the program does not.

A number that is not the next one of its epoch and bay is printed as a gap: the agent's
logbook still has what is missing. For TLS add client.tls_set(ca, certificate, key).
"""

import json
import sqlite3
import sys

import paho.mqtt.client as mqtt

NAME = "bayward-history"  # one for each reader: the broker's queue has this name
TOPIC = "bayward/+/+/+/event"

TABLE = """CREATE TABLE IF NOT EXISTS event (
  site TEXT, agent TEXT, epoch TEXT, bay TEXT, seq INTEGER,
  time TEXT, kind TEXT, text TEXT, payload TEXT NOT NULL,
  PRIMARY KEY (site, agent, epoch, bay, seq)
) WITHOUT ROWID"""


def store(db, topic, payload):
    """Put one event on the disk, and say what is missing before it."""
    _, site, agent, _, _ = topic.split("/")
    event = json.loads(payload)
    where = (site, agent, event["epoch"], event["bay"])
    (last,) = db.execute(
        "SELECT max(seq) FROM event WHERE (site, agent, epoch, bay) = (?, ?, ?, ?)", where
    ).fetchone()
    if last is not None and event["seq"] > last + 1:
        print("GAP", *where, last + 1, event["seq"] - 1, flush=True)
    with db:  # commits
        db.execute(
            "INSERT OR IGNORE INTO event VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            where + (event["seq"], event["time"], event["kind"], event["text"], payload),
        )


def main():
    if len(sys.argv) not in (3, 4):
        sys.exit(__doc__)
    db = sqlite3.connect(sys.argv[1], isolation_level="IMMEDIATE", check_same_thread=False)
    db.execute("PRAGMA synchronous = FULL")
    db.execute(TABLE)
    db.commit()

    new = {}
    if hasattr(mqtt, "CallbackAPIVersion"):  # version 2 of the library
        new["callback_api_version"] = mqtt.CallbackAPIVersion.VERSION1
    client = mqtt.Client(client_id=NAME, clean_session=False, **new)
    client.on_connect = lambda c, _data, _flags, code: c.subscribe(TOPIC, 1) if code == 0 else print("refused:", code)
    client.on_subscribe = lambda _c, _data, _id, granted: print("reading", TOPIC, *granted, flush=True)
    # An exception ends the program, and the event is not acknowledged.
    client.on_message = lambda _c, _data, m: store(db, m.topic, m.payload.decode())
    client.connect(sys.argv[2], int(sys.argv[3]) if len(sys.argv) == 4 else 1883)
    client.loop_forever()


if __name__ == "__main__":
    main()

"""Walks the chain of a logbook as format.md describes it, with nothing of
bayward's: python3 verify.py FILE prints the number of links and the last hash."""
import hashlib
import sqlite3
import struct
import sys

db = sqlite3.connect(sys.argv[1])


# Left out while they have their defaults.
GAINED = {"how", "drawn_ml", "dry_before", "dry_after", "verdict", "done_by", "late_wall_ms", "late_by"}


def line(name, v):
    if name in GAINED and v in (None, 0, ""):
        return ""
    if v is None:
        return f"{name} n\n"
    if isinstance(v, int):
        return f"{name} i {v}\n"
    if isinstance(v, float):
        return f"{name} r {struct.pack('>d', v).hex()}\n"
    return f"{name} t {len(v.encode())} {v}\n"


def rows(query, *args):
    cur = db.execute(query, args)
    names = [c[0] for c in cur.description]
    return [list(zip(names, row)) for row in cur]


before, n = bytes(32), 0
for no, kind, ref, stored in db.execute("SELECT no, kind, ref, hash FROM chain ORDER BY no"):
    pack = "(SELECT name FROM pack WHERE pack.id = pack_id)" if kind != "commissioning" else "NULL"
    row = rows(f"SELECT t.*, bay.name AS bay, coalesce({pack}, '') AS pack FROM {kind} t "
               "JOIN bay ON bay.id = bay_id WHERE t.id = ?", ref)[0]
    by = dict(row)
    text = kind + "\n" + "".join(line(k, by[k]) for k in ("id", "bay", "pack"))
    text += "".join(line(k, v) for k, v in row if k not in ("id", "bay_id", "pack_id", "bay", "pack"))
    if kind == "visit":
        for cell in rows("SELECT * FROM visit_cell WHERE visit_id = ? ORDER BY cell", ref):
            text += "".join(line(k, v) for k, v in cell if k != "visit_id")
    before, n = hashlib.sha256(before + text.encode()).digest(), n + 1
    assert no == n and before == stored, f"link {no} does not hold"
print(n, before.hex())

"""The script that a keeper would write instead: readings in one table, each request its own connection.

READINGS_DB says where the file is, READINGS_THREADS how many threads serve.
"""

import os
import sqlite3

from flask import Flask, request

app = Flask(__name__)
WEEK = """
    SELECT gauge, count(*), min(value), sum((value + next) / 2 * gap) / sum(gap), max(value) FROM (
        SELECT gauge, value, lead(value) OVER one AS next, unixepoch(lead(at) OVER one) - unixepoch(at) AS gap
        FROM readings WHERE gauge = ? AND at >= ? AND at < ? WINDOW one AS (ORDER BY at)
    )"""
LATEST = "SELECT gauge, at, value FROM readings WHERE gauge = ? ORDER BY at DESC LIMIT 1"


def connect():
    db = sqlite3.connect(os.environ["READINGS_DB"], timeout=60)
    db.execute("PRAGMA synchronous=FULL")
    return db


@app.post("/readings")
def post_readings():
    sent = request.get_json()
    rows = [(one["gauge"], one["at"], one["value"]) for one in sent.get("readings", [sent])]
    db = connect()
    stored = db.executemany("INSERT OR IGNORE INTO readings VALUES (?, ?, ?)", rows).rowcount
    db.commit()
    db.close()
    return {"stored": stored}


@app.get("/week")
def week():
    db, asked = connect(), request.args
    span = asked["from"], asked["to"]
    rows = [db.execute(WEEK, (gauge, *span)).fetchone() for gauge in asked["gauges"].split()]
    db.close()
    return {"rows": rows}


@app.get("/latest")
def latest():
    db = connect()
    rows = [db.execute(LATEST, (gauge,)).fetchone() for gauge in request.args["gauges"].split()]
    db.close()
    return {"rows": rows}


def make():
    """The empty table."""
    db = connect()
    db.execute(
        "CREATE TABLE IF NOT EXISTS readings (gauge TEXT, at TEXT, value REAL, PRIMARY KEY (gauge, at))"
    )
    db.close()


def serve(served):
    """Serve on a free port, with the server that Weirbook has."""
    from waitress.server import create_server

    threads = int(os.environ.get("READINGS_THREADS", "8"))
    server = create_server(served, host="127.0.0.1", port=0, threads=threads)
    print(f"http://127.0.0.1:{server.effective_port}", flush=True)
    server.run()


if __name__ == "__main__":
    make()
    serve(app)

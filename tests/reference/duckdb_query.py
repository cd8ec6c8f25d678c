"""Runs a query of DuckDB in a folder: {"folder", "sql"} in, rows out."""

import json
import os
import sys

import duckdb

given = json.load(sys.stdin)
os.chdir(given["folder"])
json.dump(duckdb.sql(given["sql"]).fetchall(), sys.stdout)

#!/bin/sh
# The first ten minutes with a circuit of one's own, from the top of the tree after `make demo`.
set -e
A=.venv/bin/amptrail
$A check demos/first/alarm.sheet
$A suspects demos/first/alarm.sheet demos/first/alarm.readings --top 3
$A next demos/first/alarm.sheet demos/first/alarm.readings

#!/bin/sh
# From the README to a repaired job with a circuit that is in no demo; from the top of the tree after `make demo`.
set -e
A=.venv/bin/amptrail
S=design/0009-a-stranger.sheet
R=design/0009-a-stranger.readings
AMPTRAIL_HOME=$(mktemp -d); export AMPTRAIL_HOME
trap 'rm -rf "$AMPTRAIL_HOME"' EXIT
$A check $S
$A expect $S --phase lifting --at KP.86 --at KP.85 --at PUMP.in
# what the owner and the first look told, then one answer at a time as `next` asked for it
$A job new lift $S --complaint "tail lift goes down and not up; contactor replaced"
n=0
while read -r line; do
    $A job add lift "$line"
    n=$((n + 1))
    if [ $n -ge 7 ]; then $A suspects lift --top 3; $A next lift --at power-pack; fi
done < $R
$A feed lift --feed "from TH.out to body fuse 5 A wire 1.5 mm2 2 m" --against "X2.4 resistance 60 ohm" --for home --nominal
$A job set lift "by=A. Sample; rate=90; currency=EUR"
$A job conclude lift "X2.4 resistance" --cause "road spray through a torn boot"
$A job done lift "terminal 4 renewed" --minutes 20
$A findings lift

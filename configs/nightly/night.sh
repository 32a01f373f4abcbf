#!/bin/sh
# Every job of a folder, unattended: the one place that cron and systemd start. Change these to where things are.
: "${JOBS:=/srv/survey/jobs}" "${TIEDOWN:=/opt/tiedown/bin/tiedown}"
: "${TELL:=/srv/survey/nightly/tell-by-mail.sh office@example.org}"

cd "$JOBS" || exit 2
"$TIEDOWN" run --quiet --workers 2 --timeout 3600 --notify "$TELL" ./*.toml
code=$?
# A page over all jobs goes here, after them and whatever became of them.
exit "$code"

#!/bin/sh
# Every job of a folder, unattended: the one place that cron and systemd start. Change these to where things are.
: "${JOBS:=/srv/survey/jobs}" "${TIEDOWN:=/opt/tiedown/bin/tiedown}"
: "${PAGE:=/srv/survey/pages/jobs.html}" "${TELL:=/srv/survey/nightly/tell-by-mail.sh office@example.org}"

cd "$JOBS" || exit 2
"$TIEDOWN" run --quiet --workers 2 --timeout 3600 --notify "$TELL" ./*.toml
code=$?
"$TIEDOWN" office --quiet . --to "$PAGE" || page=$?  # after all jobs and whatever became of them
[ "$code" -ge "${page:-0}" ] || code=$page
exit "$code"

#!/bin/sh
# Mails what is told of a job: tell-by-mail.sh office@example.org
set -eu
{
    printf 'To: %s\nSubject: %s\n' "$1" "$TIEDOWN_SUBJECT"
    printf 'MIME-Version: 1.0\nContent-Type: text/plain; charset=UTF-8\nContent-Transfer-Encoding: 8bit\n\n'
    printf '%s\n\n%s\n' "$TIEDOWN_TEXT" "${TIEDOWN_REPORT:-$TIEDOWN_FILE}"
} | "${SENDMAIL:-/usr/sbin/sendmail}" -t -i

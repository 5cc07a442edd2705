#!/bin/sh
# Run one of the program's commands as the service does: its settings, its folder, its user. Called by root.
set -eu
set -a
. "{{ of.out }}/clinic.env"
set +a
umask 077
cd "{{ of.app }}"
[ "$(id -un)" = "{{ of.user }}" ] || exec runuser -u "{{ of.user }}" -- "{{ of.python }}" manage.py "$@"
exec "{{ of.python }}" manage.py "$@"

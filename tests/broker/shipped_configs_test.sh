#!/bin/bash
# The shipped broker, bridge and access files on real brokers: what must cross crosses, what must not does not,
# and nothing is lost when the rig's broker is killed.
set -u
shipped=$1
. "$(dirname "$0")/brokers.sh"
failed=0
check() { if [ "$2" = "$3" ]; then echo "ok: $1"; else echo "FAILED: $1: expected '$3', got '$2'"; failed=1; fi; }
root=firnwatt/test

start_far
start_rig
link_is() { [ "$(mosquitto_sub $(far phone) -t $root/link -C 1 -W 2 2>/dev/null)" = "$1" ]; }
wait_for 15 link_is 1; check "the bridge says 1 on the far side" $? 0
check "and in the rig" "$(mosquitto_sub $(rig firnwatt) -t $root/link -C 1 -W 5)" 1

# A notice out, an acknowledgement in.
mosquitto_sub $(far phone) -q 1 -t $root/notices -C 1 -W 10 >"$dir/got" & reader=$!
sleep 1
mosquitto_pub $(rig firnwatt) -q 1 -t $root/notices -m '{"id":"a-1"}'
wait $reader
check "a notice reaches the phone's side" "$(cat "$dir/got")" '{"id":"a-1"}'
mosquitto_sub $(rig firnwatt) -q 1 -t "$root/alarms/+/acknowledge" -C 1 -W 10 >"$dir/got" & reader=$!
sleep 1
mosquitto_pub $(far phone) -q 1 -t $root/alarms/snow-fore/acknowledge -m '{"by":"sam"}'
wait $reader
check "an acknowledgement reaches the rig" "$(cat "$dir/got")" '{"by":"sam"}'

# What must not cross or not be said. One reader a side; a permitted message after the refused ones ends the wait.
mosquitto_sub $(far phone) -q 1 -t '#' -W 6 -F '%t' >"$dir/far-got" 2>/dev/null & far_reader=$!
mosquitto_sub $(rig firnwatt) -q 1 -t "$root/#" -t 'roof/#' -W 6 -F '%t' >"$dir/rig-got" 2>/dev/null & rig_reader=$!
sleep 1
mosquitto_pub $(rig firnwatt) -q 1 -t $root/chargers/aft/permit -m no
mosquitto_pub $(rig sensors) -q 1 -t roof/fore -m '{"w":60}'
mosquitto_pub $(rig sensors) -q 1 -t $root/notices -m forged
mosquitto_pub $(rig owner) -q 1 -t $root/chargers/fore/permit -m yes
mosquitto_pub $(far phone) -q 1 -t $root/chargers/fore/permit -m yes
mosquitto_pub $(far phone) -q 1 -t roof/fore -m forged
mosquitto_pub $(far watch) -q 1 -t $root/notes -m forged
mosquitto_pub -h 127.0.0.1 -p "$rig_port" -q 1 -t $root/notes -m anonymous 2>/dev/null
wait $far_reader $rig_reader
check "permits and telemetry stay in the rig" "$(grep -c -e permit -e roof "$dir/far-got")" 0
check "telemetry and the daemon's permit pass within the rig" "$(grep -c -x -e roof/fore -e $root/chargers/aft/permit "$dir/rig-got")" 2
check "nobody else can forge a permit, a notice or a note" "$(grep -c -x -e $root/notices -e $root/chargers/fore/permit -e $root/notes "$dir/rig-got")" 0

# The link is gone: messages and an emptied alarm wait, telemetry states do not; the broker is killed, nothing is lost.
mosquitto_pub $(rig firnwatt) -q 1 -r -t $root/alarms/snow-fore -m standing
sleep 1
mosquitto_sub $(far phone) -q 1 -c -i phone-1 -t $root/notices -C 1 -W 1 >/dev/null 2>&1  # a session that keeps what comes
stop far
sleep 1
check "the rig knows its link is down" "$(mosquitto_sub $(rig firnwatt) -t $root/link -C 1 -W 5)" 0
for i in 1 2 3 4 5; do mosquitto_pub $(rig firnwatt) -q 1 -t $root/notices -m "waiting $i"; done
mosquitto_pub $(rig firnwatt) -q 1 -r -n -t $root/alarms/snow-fore
sleep 2.5
kill9 rig
start_rig
for i in 6 7; do mosquitto_pub $(rig firnwatt) -q 1 -t $root/notices -m "waiting $i"; done
start_far
mosquitto_sub $(far phone) -q 1 -c -i phone-1 -t $root/notices -C 7 -W 30 >"$dir/got" 2>/dev/null
check "what waited arrives once, in order, though the broker was killed" "$(tr '\n' ' ' <"$dir/got")" \
  "waiting 1 waiting 2 waiting 3 waiting 4 waiting 5 waiting 6 waiting 7 "
check "an alarm that ended meanwhile is gone on the far side" "$(mosquitto_sub $(far phone) -t "$root/alarms/#" -C 1 -W 3 2>/dev/null)" ""

# Board, broker and daemon die together: only the far side can tell.
wait_for 15 link_is 1
mosquitto_pub $(rig firnwatt) -q 1 -r -t $root/alive -m "{\"state\":\"online\",\"utc\":\"x\",\"next_by_utc\":\"$(date -u -d '+15 seconds' +%Y-%m-%dT%H:%M:%SZ)\"}"
sleep 1
mosquitto_sub $(far phone) -q 1 -t $root/notices/text -C 2 -W 90 >"$dir/got" 2>/dev/null & reader=$!
GRACE_S=60 EVERY_S=1 "$shipped/watch-from-afar" test $(far watch) 2>"$dir/watch.err" & pid[watch]=$!
sleep 3
check "the watch is silent while all is well" "$(cat "$dir/got")" ""
kill9 rig
told() { grep -q 'No word from the rig: firnwatt has not spoken since it said it would.' "$dir/got"; }
wait_for 40 told; check "the far side tells when the promised time has passed" $? 0
start_rig
wait_for 15 link_is 1
mosquitto_pub $(rig firnwatt) -q 1 -r -t $root/alive -m "{\"state\":\"online\",\"utc\":\"x\",\"next_by_utc\":\"$(date -u -d '+15 minutes' +%Y-%m-%dT%H:%M:%SZ)\"}"
wait $reader
check "and once when it is heard again" "$(tail -n 1 "$dir/got")" "The rig is heard again."
stop watch

# The link alone is down, the promised time is far off: told when the grace is over, a shorter dead zone is not.
mosquitto_sub $(far phone) -q 1 -t $root/notices/text -C 2 -W 90 >"$dir/got" 2>/dev/null & reader=$!
GRACE_S=6 EVERY_S=1 "$shipped/watch-from-afar" test $(far watch) 2>"$dir/watch.err" & pid[watch]=$!
sleep 2
if [ -n "${FW_LONG:-}" ]; then
  kill9 rig
  sleep 2
  start_rig
  wait_for 15 link_is 1
  sleep 7
  check "a dead zone shorter than the grace is no news" "$(cat "$dir/got")" ""
fi
kill9 rig
down_at=$SECONDS
told() { grep -q 'No word from the rig: its link is down.' "$dir/got"; }
wait_for 30 told; check "a link that stays down is told" $? 0
took=$((SECONDS - down_at))
check "after the grace, and within it and a few looks ($took s)" "$([ $took -ge 5 ] && [ $took -le 16 ] && echo yes)" yes
start_rig
wait $reader
check "and once when the link is back" "$(tail -n 1 "$dir/got")" "The rig is heard again."
stop watch

# Broker and bridge live, firnwatt alone is dead: its will stands on alive.
wait_for 15 link_is 1
mosquitto_pub $(rig firnwatt) -q 1 -r -t $root/alive -m '{"state":"offline"}'
mosquitto_sub $(far phone) -q 1 -t $root/notices/text -C 1 -W 20 >"$dir/got" 2>/dev/null & reader=$!
GRACE_S=3 EVERY_S=1 "$shipped/watch-from-afar" test $(far watch) 2>"$dir/watch.err" & pid[watch]=$!
wait $reader
check "a firnwatt that is dead while its broker lives is told too" "$(cat "$dir/got")" \
  "No word from the rig: firnwatt has stopped there. Its battery and strings are not watched from here."
stop watch
exit $failed

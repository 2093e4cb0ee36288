# Sourced by tests that need a rig's broker and a far one: starts both from the shipped files with ports and
# paths moved into a temporary folder, TLS between them with certificates made here, and stops them again.
# Needs: $shipped (config/broker). Gives: $dir, $rig_port, $far_port, start_far, start_rig, stop NAME, kill9 NAME.

mosquitto=$(PATH=$PATH:/usr/sbin command -v mosquitto || true)
if [ -z "$mosquitto" ] || ! command -v mosquitto_pub >/dev/null || ! command -v openssl >/dev/null; then
  echo "skipped: needs mosquitto, mosquitto-clients and openssl"
  exit 77
fi

dir=$(mktemp -d)
declare -A pid=()
finish() {
  for name in "${!pid[@]}"; do kill "${pid[$name]}" 2>/dev/null || true; done
  wait 2>/dev/null
  rm -rf "$dir"
}
trap finish EXIT

free_port() {
  local port
  while :; do
    port=$((20000 + RANDOM % 20000))
    (exec 3<>"/dev/tcp/127.0.0.1/$port") 2>/dev/null || { echo "$port"; return; }
  done
}

wait_for() {  # wait_for SECONDS COMMAND...: until the command succeeds
  local end=$((SECONDS + $1))
  shift
  until "$@"; do
    [ "$SECONDS" -lt "$end" ] || return 1
    sleep 0.2
  done
}

listening() { (exec 3<>"/dev/tcp/127.0.0.1/$1") 2>/dev/null; }

certificate() {  # certificate NAME SUBJECT-ALT-NAME
  openssl req -newkey rsa:2048 -nodes -keyout "$dir/$1.key" -out "$dir/$1.csr" -subj "/CN=$1" 2>/dev/null
  openssl x509 -req -in "$dir/$1.csr" -CA "$dir/ca.crt" -CAkey "$dir/ca.key" -CAcreateserial -days 2 -out "$dir/$1.crt" \
    -extfile <(printf 'subjectAltName=%s' "$2") 2>/dev/null
}

rig_port=$(free_port)
far_port=$(free_port)
mkdir "$dir/rig" "$dir/far" "$dir/conf.d"
openssl req -x509 -newkey rsa:2048 -nodes -keyout "$dir/ca.key" -out "$dir/ca.crt" -days 2 -subj /CN=test-ca 2>/dev/null
certificate far IP:127.0.0.1,DNS:localhost

for user in firnwatt sensors owner bridge; do echo "$user:pw-$user"; done >"$dir/rig.passwd"
for user in far-user phone watch; do echo "$user:pw-$user"; done >"$dir/far.passwd"
mosquitto_passwd -U "$dir/rig.passwd"
mosquitto_passwd -U "$dir/far.passwd"
sed 's/RIG/test/g' "$shipped/rig.acl" >"$dir/rig.acl"
sed 's/RIG/test/g; s/FAR_USER/far-user/' "$shipped/far.acl" >"$dir/far.acl"
sed -e "s|^listener .*|listener $rig_port 127.0.0.1|" -e "s|/etc/mosquitto/firnwatt.passwd|$dir/rig.passwd|" \
  -e "s|/etc/mosquitto/firnwatt.acl|$dir/rig.acl|" -e "s|/var/lib/mosquitto/|$dir/rig/|" \
  -e "s|^log_dest .*|log_dest file $dir/rig.log|" -e "s|/etc/mosquitto/conf.d|$dir/conf.d|" "$shipped/rig-broker.conf" >"$dir/rig.conf"
sed -e 's/RIG/test/g' -e "s/FAR_HOST:8883/localhost:$far_port/" -e 's/FAR_USER/far-user/' -e 's/FAR_PASSWORD/pw-far-user/' \
  -e 's/BRIDGE_PASSWORD/pw-bridge/' -e "s|/etc/ssl/certs/ca-certificates.crt|$dir/ca.crt|" \
  -e 's/^restart_timeout .*/restart_timeout 1/' "$shipped/bridge.conf" >"$dir/conf.d/bridge.conf"
cat >"$dir/far.conf" <<CONF
listener $far_port 127.0.0.1
cafile $dir/ca.crt
certfile $dir/far.crt
keyfile $dir/far.key
allow_anonymous false
password_file $dir/far.passwd
acl_file $dir/far.acl
persistence true
persistence_location $dir/far/
log_dest file $dir/far.log
CONF
if [ "$(id -u)" = 0 ]; then
  echo "user root" >>"$dir/rig.conf"
  echo "user root" >>"$dir/far.conf"
fi

start() {  # start NAME PORT
  "$mosquitto" -c "$dir/$1.conf" >"$dir/$1.out" 2>&1 &
  pid[$1]=$!
  wait_for 10 listening "$2" || { echo "broker $1 does not start:"; cat "$dir/$1.out" "$dir/$1.log" 2>/dev/null; exit 1; }
}
start_rig() { start rig "$rig_port"; }
start_far() { start far "$far_port"; }
stop() { kill "${pid[$1]}"; wait "${pid[$1]}" 2>/dev/null; unset "pid[$1]"; }
kill9() { kill -9 "${pid[$1]}"; wait "${pid[$1]}" 2>/dev/null; unset "pid[$1]"; }

rig() {  # rig USER: options for a client in the rig
  echo "-h 127.0.0.1 -p $rig_port -u $1 -P pw-$1"
}
far() {
  echo "-h localhost -p $far_port --cafile $dir/ca.crt -u $1 -P pw-$1"
}

#!/bin/sh
# Announces every bay by the MQTT discovery convention: one retained configuration for each
# value, so that a dashboard which knows the convention shows the bays without further work.
#
#   discovery.sh [--remove] PREFIX HOST [PORT]
#
# PREFIX is the topic under which the dashboard looks; its manual names it. The bays are
# those whose retained state the broker has. Run it again when a bay is added. --remove
# takes all of it back. It announces readings only, and nothing that could be switched.
# It needs mosquitto-clients and jq. Exit code 0: done, 1: no bay was found, 2: wrong use.
set -eu

remove=false
[ "${1:-}" != --remove ] || { remove=true; shift; }
case "${1:-}" in "" | -* | *[!a-z0-9_-]*) sed -n '2,11s/^# \{0,1\}//p' "$0" >&2; exit 2 ;; esac
[ $# -ge 2 ] || { echo "discovery.sh: give the broker's HOST after the PREFIX" >&2; exit 2; }
prefix=$1 host=$2 port=${3:-1883}

# Field of the state, name, unit, class, kind of entity.
fields='[
  ["permit", "charge", null, null, "sensor"],
  ["stage", "stage", null, null, "sensor"],
  ["says", "what it does", null, null, "sensor"],
  ["full", "full", null, null, "binary_sensor"],
  ["read_due", "levels to be read", null, "problem", "binary_sensor"],
  ["pack", "pack", null, null, "sensor"],
  ["pack_v", "pack voltage", "V", "voltage", "sensor"],
  ["current_a", "pack current", "A", "current", "sensor"],
  ["pack_c", "pack temperature", "°C", "temperature", "sensor"],
  ["ambient_c", "air temperature", "°C", "temperature", "sensor"],
  ["level_mm", "electrolyte level above the plate tops", "mm", "distance", "sensor"],
  ["hydrogen_pct", "hydrogen", "%", null, "sensor"],
  ["ready_in_s", "time until it may be watered", "s", "duration", "sensor"],
  ["forecast_h", "water lasts", "h", "duration", "sensor"]
]'

# announce reads topics of states and prints TOPIC, a tab and the configuration.
announce() {
  jq -R -r --arg prefix "$prefix" --argjson fields "$fields" '
    . as $topic | split("/") as [$root, $site, $agent, $bay, $leaf] |
    "bayward_\($site)_\($agent)_\($bay)" as $device | $fields[] as [$field, $name, $unit, $class, $kind] |
    {
      name: $name, unique_id: "\($device)_\($field)", state_topic: $topic, expire_after: 120,
      value_template: (if $kind == "binary_sensor" then "{{ \u0027ON\u0027 if value_json.\($field) else \u0027OFF\u0027 }}"
        else "{{ value_json.\($field) | default(none) }}" end),
      availability_topic: "\($root)/\($site)/\($agent)/status", availability_template: "{{ value_json.state }}",
      device: { identifiers: [$device], name: "\($bay), \($agent), \($site)" }
    }
    + (if $unit then { unit_of_measurement: $unit, state_class: "measurement" } else {} end)
    + (if $class then { device_class: $class } else {} end)
    | "\($prefix)/\($kind)/\($device)/\($field)/config\t\(tojson)"'
}

bays=$(mosquitto_sub -h "$host" -p "$port" -q 1 -t 'bayward/+/+/+/state' --retained-only -W 3 -F %t || [ $? = 27 ])
[ -n "$bays" ] || { echo "discovery.sh: the broker has no state of any bay" >&2; exit 1; }
printf '%s\n' "$bays" | announce | while IFS="$(printf '\t')" read -r topic text; do
  if $remove; then
    mosquitto_pub -h "$host" -p "$port" -q 1 -r -n -t "$topic"
  else
    mosquitto_pub -h "$host" -p "$port" -q 1 -r -t "$topic" -m "$text"
  fi
done

#!/bin/sh
# Prints each new notice for people, one line each: notices.sh HOST [PORT]
# It needs mosquitto-clients and jq. A notice is retained, so the newest of each bay
# comes first.
mosquitto_sub -h "$1" -p "${2:-1883}" -q 1 -t 'bayward/+/+/+/notice' |
  jq -r --unbuffered 'select(.state == "raised") | [.since, .bay, .text, .what_to_do] | @tsv'

#!/bin/sh
# Makes what Valhalla's service reads, from an OpenStreetMap extract: borders (they say on which side traffic keeps),
# tiles, and the service's settings. Does nothing where all that was made from this very extract; what was made before
# stays until the new is complete.
#     valhalla_tiles.sh EXTRACT FOLDER
set -eu
extract=$1
folder=$2

settings() {
  valhalla_build_config --mjolnir-tile-dir "$1" --mjolnir-tile-extract "" --mjolnir-admin "$folder/borders.sqlite" \
    --mjolnir-timezone "" --httpd-service-listen "tcp://*:8002" --httpd-service-drain-seconds 1 \
    --httpd-service-shutdown-seconds 1
}

if [ ! -s "$extract" ]; then
  echo "$extract: there is no such extract; put it there, or name another one with WALLDAY_EXTRACT." >&2
  exit 1
fi
sum=$(cksum <"$extract")
if [ -f "$folder/made-from" ] && [ "$(cat "$folder/made-from")" = "$sum" ]; then
  echo "The tiles are those of $extract."
  exit 0
fi
rm -rf "$folder/new"
mkdir -p "$folder/new"
settings "$folder/new" >"$folder/building.json"
valhalla_build_admins -c "$folder/building.json" "$extract" || echo "No borders: traffic keeps to Valhalla's own side."
valhalla_build_tiles -c "$folder/building.json" "$extract"
rm -rf "$folder/tiles"
mv "$folder/new" "$folder/tiles"
settings "$folder/tiles" >"$folder/valhalla.json"
echo "$sum" >"$folder/made-from"

#!/bin/sh
# Run once by the database container on an empty volume.
set -eu
psql --no-psqlrc --username "$POSTGRES_USER" --dbname postgres \
  --set owner_password="$DATABASE_OWNER_PASSWORD" --set app_password="$DATABASE_APP_PASSWORD" \
  --file /compose/roles.sql

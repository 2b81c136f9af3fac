-- Two roles and one database: the owner migrates, the app role works and can alter no table.
-- For psql 15 or newer on a new cluster; the passwords come from its environment.
\set ON_ERROR_STOP on
\getenv owner_password DATABASE_OWNER_PASSWORD
\getenv app_password DATABASE_APP_PASSWORD
CREATE ROLE dosewright_owner LOGIN CREATEDB PASSWORD :'owner_password';
CREATE ROLE dosewright_app LOGIN PASSWORD :'app_password';
CREATE DATABASE dosewright OWNER dosewright_owner;
REVOKE ALL ON DATABASE dosewright FROM PUBLIC;
GRANT CONNECT ON DATABASE dosewright TO dosewright_app;

-- template1 too, so that a database the owner makes for tests starts with the same grants.
\connect dosewright
ALTER DEFAULT PRIVILEGES FOR ROLE dosewright_owner GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO dosewright_app;
ALTER DEFAULT PRIVILEGES FOR ROLE dosewright_owner GRANT USAGE, SELECT ON SEQUENCES TO dosewright_app;
\connect template1
ALTER DEFAULT PRIVILEGES FOR ROLE dosewright_owner GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO dosewright_app;
ALTER DEFAULT PRIVILEGES FOR ROLE dosewright_owner GRANT USAGE, SELECT ON SEQUENCES TO dosewright_app;

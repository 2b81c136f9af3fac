-- Two roles and one database: the owner migrates, the app role works and can alter no table.
-- Called by psql with owner_password and app_password set; the cluster is new.
\set ON_ERROR_STOP on
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

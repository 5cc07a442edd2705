-- The role owns its database and nothing else: no superuser, no right to make databases or roles.
CREATE ROLE clinic LOGIN PASSWORD '{{ of.password }}' NOSUPERUSER NOCREATEDB NOCREATEROLE;
CREATE DATABASE clinic OWNER clinic ENCODING 'UTF8' TEMPLATE template0;
REVOKE ALL ON DATABASE clinic FROM PUBLIC;

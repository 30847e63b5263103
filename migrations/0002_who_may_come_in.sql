-- One-time links, marshals, organizers' passphrases and passkeys, and what is known of a device.

-- SQLite cannot change a check: the table is made anew under its old name. Its rows are gone from view for a moment, so the
-- foreign keys that point at them are looked at when all is done.
pragma defer_foreign_keys = on;

create table access_link_before as select * from access_link;

drop table access_link;

create table access_link (
    id blob primary key,
    -- of the secret that was handed out last
    digest blob not null unique,
    role text not null check (role in ('organizer', 'inspector', 'marshal', 'driver')),
    event_id blob references event (id),
    entry_id blob references entry (id),
    -- the name that stands beside what this person does; empty once it was erased
    holder text not null,
    made_at integer not null,
    revoked_at integer,
    -- 1: the secret lets one device in and is spent then
    once integer not null check (once in (0, 1)),
    -- until when the secret lets anybody in; devices that came in stay for their own time
    ends_at integer,
    spent_at integer,
    check ((role = 'organizer') = (event_id is null)),
    check ((role = 'driver') = (entry_id is not null))
) strict;

-- Links that were handed out before stay what they were: good until they are taken back.
insert into access_link (id, digest, role, event_id, entry_id, holder, made_at, revoked_at, once)
select id, digest, role, event_id, entry_id, holder, made_at, revoked_at, 0 from access_link_before;

drop table access_link_before;

create index access_link_by_entry on access_link (entry_id);
create index access_link_by_event on access_link (event_id);

-- what kind of machine it is, as its browser says: "Android phone"; for the list of devices and nothing else
alter table device add column kind text not null default '';
-- to the hour: when it was last here
alter table device add column used_at integer;
alter table device add column ended_at integer;

create index device_by_link on device (link_id);

-- What was done with a link and by whom: who can hand out a link could use it, and that must show.
create table access_deed (
    id integer primary key,
    link_id blob not null references access_link (id),
    what text not null check (what in ('made', 'made anew', 'used', 'device ended', 'taken back')),
    -- who did it; null for who runs the server
    by_link_id blob references access_link (id),
    by_device_id blob references device (id),
    at integer not null
) strict;

create index access_deed_by_link on access_deed (link_id);

create trigger access_deed_stays_as_it_is before update on access_deed
begin
    select raise(abort, 'what was done stays as it is');
end;

create trigger access_deed_stays before delete on access_deed
begin
    select raise(abort, 'what was done stays');
end;

-- An organizer's passphrase: argon2id, in the form that names its salt and its costs.
create table passphrase (
    link_id blob primary key references access_link (id),
    hash text not null,
    changed_at integer not null
) strict;

create table passkey (
    -- the credential's own id, as the authenticator made it
    id blob primary key,
    link_id blob not null references access_link (id),
    name text not null,
    -- public key and counter; no secret is in it
    credential text not null check (json_valid(credential)),
    made_at integer not null,
    used_at integer
) strict;

create index passkey_by_link on passkey (link_id);

-- when the driver's name and mail were erased
alter table entry add column erased_at integer;

-- Garages: a driver's cars and gear across events. A garage is let in to by links of its own, and by nobody of the club.

create table garage (
    id blob primary key,
    made_at integer not null,
    -- when its driver took everything in it away; the row stays because links name it
    erased_at integer,
    -- SHA-256 of the secret in the address of its calendar; null while there is none
    calendar_digest blob unique
) strict;

-- SQLite cannot change a check: the table is made anew under its old name, as in step 2.
pragma defer_foreign_keys = on;

create table access_link_before as select * from access_link;

drop table access_link;

create table access_link (
    id blob primary key,
    -- of the secret that was handed out last
    digest blob not null unique,
    role text not null check (role in ('organizer', 'inspector', 'marshal', 'driver', 'garage')),
    event_id blob references event (id),
    entry_id blob references entry (id),
    garage_id blob references garage (id),
    -- the name that stands beside what this person does; empty once it was erased
    holder text not null,
    made_at integer not null,
    revoked_at integer,
    -- 1: the secret lets one device in and is spent then
    once integer not null check (once in (0, 1)),
    -- until when the secret lets anybody in; devices that came in stay for their own time
    ends_at integer,
    spent_at integer,
    check ((role in ('organizer', 'garage')) = (event_id is null)),
    check ((role = 'driver') = (entry_id is not null)),
    check ((role = 'garage') = (garage_id is not null))
) strict;

insert into access_link (id, digest, role, event_id, entry_id, holder, made_at, revoked_at, once, ends_at, spent_at)
select id, digest, role, event_id, entry_id, holder, made_at, revoked_at, once, ends_at, spent_at from access_link_before;

drop table access_link_before;

create index access_link_by_entry on access_link (entry_id);
create index access_link_by_event on access_link (event_id);
create index access_link_by_garage on access_link (garage_id);

-- What was noted in a garage, one change a row: cars, readings, jobs, parts. The garage is the fold of it.
create table garage_change (
    -- made on the maker's device: sending twice meets the primary key
    id blob primary key,
    garage_id blob not null references garage (id),
    -- 1, 2, 3 ... in the garage, in order of arrival
    place integer not null check (place > 0),
    body text not null check (json_valid(body)),
    made_at integer not null,
    unique (garage_id, place)
) strict;

create trigger garage_change_stays_as_it_is before update on garage_change
begin
    select raise(abort, 'what was noted stays as it is');
end;

-- "insert or replace" removes the old row without a delete; for our own "on conflict do nothing" this says the same, earlier
create trigger garage_change_is_not_replaced before insert on garage_change
when exists (select 1 from garage_change where id = new.id or (garage_id = new.garage_id and place = new.place))
begin
    select raise(ignore);
end;

-- a driver may take the whole garage away, and nothing less
create trigger garage_change_stays before delete on garage_change
when (select erased_at from garage where id = old.garage_id) is null
begin
    select raise(abort, 'what was noted stays');
end;

create table garage_photo (
    id blob primary key,
    garage_id blob not null references garage (id),
    -- re-encoded here, so it is a JPEG and carries no metadata
    jpeg blob not null,
    width integer not null,
    height integer not null,
    made_at integer not null
) strict;

create index garage_photo_by_garage on garage_photo (garage_id);

-- The club's fault guide in its numbered editions, kept exactly as given. None: the guide that comes with the program.
create table fault_guide (
    number integer primary key check (number > 0),
    file text not null,
    made_at integer not null,
    made_by text not null
) strict;

-- as `record_is_not_replaced`, for a record of another id in the same place of its event
create trigger record_s_place_is_not_replaced before insert on record
when exists (select 1 from record where event_id = new.event_id and place = new.place and id <> new.id)
begin
    select raise(abort, 'history is append-only');
end;

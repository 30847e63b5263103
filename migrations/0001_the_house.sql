-- The club's one database. Times are milliseconds since 1970-01-01 UTC, ids are UUIDv7 as 16 bytes, days are ISO 8601.

create table club (
    id integer primary key check (id = 1),
    name text not null
) strict;

-- A tech sheet in its numbered editions. The file is kept exactly as it was given: what was asked can be read years later.
create table edition (
    id blob primary key,
    number integer not null unique check (number > 0),
    name text not null,
    file text not null,
    made_at integer not null,
    made_by text not null
) strict;

create table event (
    id blob primary key,
    name text not null,
    venue text not null,
    day text not null,
    zone text not null,
    edition_id blob not null references edition (id),
    made_at integer not null
) strict;

create table run_group (
    event_id blob not null references event (id),
    name text not null,
    -- HH:MM on the event's own clock
    first_session text not null,
    primary key (event_id, name)
) strict;

create table entry (
    id blob primary key,
    event_id blob not null,
    number text not null,
    -- the figures of the number, so that 9 comes before 10
    number_order integer not null,
    driver text not null,
    car text not null,
    run_group text not null,
    mail text not null,
    made_at integer not null,
    unique (event_id, number),
    foreign key (event_id, run_group) references run_group (event_id, name)
) strict;

-- A private link. Only the digest of its secret is kept: who reads this table cannot walk in.
create table access_link (
    id blob primary key,
    digest blob not null unique,
    role text not null check (role in ('organizer', 'inspector', 'driver')),
    event_id blob references event (id),
    entry_id blob references entry (id),
    -- the name that stands beside what this person does
    holder text not null,
    made_at integer not null,
    revoked_at integer,
    check ((role = 'organizer') = (event_id is null)),
    check ((role = 'driver') = (entry_id is not null))
) strict;

create index access_link_by_entry on access_link (entry_id);
create index access_link_by_event on access_link (event_id);

-- One browser that came in by a link: a device. Its cookie's secret is kept as a digest too.
create table device (
    id blob primary key,
    digest blob not null unique,
    link_id blob not null references access_link (id),
    made_at integer not null,
    ends_at integer not null
) strict;

-- What a driver has typed and not yet sent, field by field and as typed, faults and all.
create table draft (
    entry_id blob not null references entry (id),
    item text not null,
    typed text not null check (json_valid(typed)),
    changed_at integer not null,
    primary key (entry_id, item)
) strict, without rowid;

-- The history. Standing is computed from it and never stored.
create table record (
    -- made on the maker's device: sending twice meets the primary key
    id blob primary key,
    event_id blob not null references event (id),
    entry_id blob not null references entry (id),
    -- 1, 2, 3 ... in the event, in order of arrival: the order of the event's chain
    place integer not null check (place > 0),
    kind text not null check (kind in ('submission', 'clear', 'hold', 'withdrawal')),
    -- ids of the newest records its maker had in front of them, a JSON list in order
    seen text not null check (json_valid(seen)),
    body text not null check (json_valid(body)),
    -- 1, 2, 3 ... among the entry's submissions, in order of arrival; for people, not for the rule
    number integer,
    made_at integer not null,
    arrived_at integer not null,
    -- the maker's name, null once it was erased; `maker_mark` is a hash over salt and name, and stays
    maker text,
    maker_salt text,
    maker_mark blob not null,
    maker_role text not null,
    link_id blob not null references access_link (id),
    device_id blob not null references device (id),
    -- 0 for a clear that came from a device with no right to it any more
    counts integer not null check (counts in (0, 1)),
    -- SHA-256 of the record before it in its entry and in its event, and of itself: src/rules/chain.rs
    entry_before blob,
    event_before blob,
    hash blob not null,
    unique (event_id, place),
    check ((maker is null) = (maker_salt is null))
) strict;

create index record_by_entry on record (entry_id, place);

create trigger record_stays_as_it_is before update of
    id, event_id, entry_id, place, kind, seen, body, number, made_at, arrived_at, maker_mark, maker_role, link_id, device_id,
    counts, entry_before, event_before, hash on record
begin
    select raise(abort, 'history is append-only');
end;

-- a name can be erased, and nothing else can be made of it
create trigger record_maker_is_erased_or_stays before update of maker, maker_salt on record
when new.maker is not null or new.maker_salt is not null
begin
    select raise(abort, 'history is append-only');
end;

-- "insert or replace" removes the old row without a delete; for our own "on conflict do nothing" this says the same, earlier
create trigger record_is_not_replaced before insert on record when exists (select 1 from record where id = new.id)
begin
    select raise(ignore);
end;

create trigger record_stays before delete on record
begin
    select raise(abort, 'history is append-only');
end;

create table photo (
    id blob primary key,
    entry_id blob not null references entry (id),
    -- re-encoded here, so it is a JPEG and carries no metadata
    jpeg blob not null,
    width integer not null,
    height integer not null,
    made_at integer not null
) strict;

create index photo_by_entry on photo (entry_id);

-- What a phone keeps has an owner, an age and an end.

-- What phones of an event keep, and how long a marshal's phone says "cleared" without news. Set anew is a new row: the newest
-- counts, and who set what stays readable. An event without a row has the first values of the program.
create table phone_setting (
    id blob primary key,
    event_id blob not null references event (id),
    -- minutes without news until "cleared" is no longer said
    old_after_min integer not null check (old_after_min between 1 and 240),
    -- days after the event's day until phones drop its pages
    kept_days integer not null check (kept_days between 0 and 30),
    made_at integer not null,
    -- the organizer's name at that time
    made_by text not null
) strict;

create index phone_setting_of_event on phone_setting (event_id, id);

create trigger phone_setting_stays before update on phone_setting begin select raise(abort, 'settings are append-only'); end;
create trigger phone_setting_is_kept before delete on phone_setting begin select raise(abort, 'settings are append-only'); end;

-- The garage's device through which this one was let in to a sheet: it ends with it. Null for who came in by a link of their own.
alter table device add column through blob references device (id);

create index device_by_through on device (through) where through is not null;

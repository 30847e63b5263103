-- Garages have ends: an organizer ends one, or it ends by itself where nobody opens it any more.

-- when an organizer ended it: nothing more is noted from then on
alter table garage add column closed_at integer;
-- when everything in it is erased, for one that was ended
alter table garage add column goes_at integer check (goes_at is null or closed_at is not null);

-- After how many months without use a garage ends by itself. Set anew is a new row: the newest counts, and who set what stays
-- readable. A club without a row has the first value of the program.
create table garage_setting (
    id blob primary key,
    months integer not null check (months between 6 and 120),
    made_at integer not null,
    -- the organizer's name at that time
    made_by text not null
) strict;

create trigger garage_setting_stays before update on garage_setting begin select raise(abort, 'settings are append-only'); end;
create trigger garage_setting_is_kept before delete on garage_setting begin select raise(abort, 'settings are append-only'); end;

-- The ids of forms that made a link, each with when: a form that is sent again makes no other. Old ones are deleted.
create table form_used (
    id blob primary key,
    used_at integer not null
) strict;

create index form_used_by_age on form_used (used_at);

-- garages are counted by who made their link
create index access_deed_by_maker on access_deed (by_link_id) where what = 'made';

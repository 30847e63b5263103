-- What an open session alone may not do, when it ends by itself, and which browsers an organizer signed in with before.

-- when the person on this device last showed who they are, with a passphrase or a passkey, by the server's clock
alter table device add column proven_at integer;
-- after how many minutes without use it is out; null: it stays until its time is over
alter table device add column idle_min integer check (idle_min > 0);

update device set idle_min = 720 where link_id in (select id from access_link where role = 'organizer');

-- Browsers in which an organizer signed in. A try from one of them is counted apart from strangers' tries. It lets nobody in.
create table known_browser (
    -- of the secret in the browser's cookie
    digest blob primary key,
    link_id blob not null references access_link (id),
    made_at integer not null,
    used_at integer not null
) strict;

create index known_browser_by_link on known_browser (link_id, used_at);

-- 1: a passphrase alone signs no organizer in; a passkey is asked for as well
alter table club add column second_factor integer not null default 0 check (second_factor in (0, 1));

//! A new version of the program: no phone is stranded with an old page, and what waits on it is sent.

use crate::browser::{Browser, in_time};
use crate::club::Club;
use crate::wire::Wire;

/// The phone has the pages and scripts of an older version, without signal, and a sign-off that waits. The server is the new one.
#[tokio::test(flavor = "multi_thread")]
async fn a_phone_with_an_older_version_and_a_full_queue_works_on_and_sends() {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("updates", "inspector").await;
        for words in ["ERR_", "404", "503"] {
            phone.forgives(words);
        }
        phone.has_the_clubs_time(&club).await;
        phone.comes_in_by(&wire.base, &club.another_link_for(&holt.name).await).await;
        let ready = format!("return !!navigator.serviceWorker.controller && !!localStorage.getItem('gate {}')", club.event);
        phone.comes("the whole gate is on the device", &ready).await;
        // What an older program would have left: its own names for styles and scripts, in kept pages and in its kept files.
        let aged = "return (async () => { \
            const [now] = (await caches.keys()).filter((name) => name.startsWith('static-')); \
            const version = now.slice('static-'.length); const old = version.replace(/./g, 'e'); \
            const [pages, kept, anew] = [await caches.open('pages-1'), await caches.open(now), await caches.open('static-' + old)]; \
            for (const request of await kept.keys()) \
                await anew.put(request.url.replace(version, old), await kept.match(request)); \
            for (const request of await pages.keys()) { \
                const html = (await (await pages.match(request)).text()).replaceAll(version, old); \
                await pages.put(request, new Response(html, { headers: { 'content-type': 'text/html; charset=utf-8' } })); \
            } \
            return old; })()";
        let old = phone.asks(aged).await;
        wire.is_cut();
        phone.opens(&format!("{}{}", wire.base, holt.lane())).await;
        let script = phone.asks("return document.querySelector('script[src*=lane]').src").await;
        assert!(script.as_str().is_some_and(|src| src.contains(old.as_str().expect("a version"))), "an old page: {script}");
        phone.finds("27").await;
        phone.ticks_everything().await;
        phone.follows(".clear").await;
        phone.sends_now().await;
        phone.sees(".queue", "1 sign-off waits on this device for signal").await;
        wire.is_sound();
        phone.taps(".queue button").await;
        phone.comes("all is sent", "return document.querySelector('.queue').hidden").await;
        assert_eq!(club.board_of("27").await.0, "cleared", "the old page sent what the new server takes");
        phone.opens(&format!("{}{}", wire.base, holt.lane())).await;
        let script = phone.asks("return document.querySelector('script[src*=lane]').src").await;
        assert!(script.as_str().is_some_and(|src| !src.contains(old.as_str().expect("a version"))), "with signal the page is new");
        // The worker of the next version comes: this one's files stay, those of the one before it go.
        let next = "return (async () => { await caches.open('static-0lder'); \
            const { installing } = await navigator.serviceWorker.register('/sw.js?next'); \
            await new Promise((resolve) => installing.addEventListener('statechange', () => installing.state === 'activated' && resolve())); \
            return (await caches.keys()).filter((name) => name.startsWith('static-')).length; })()";
        assert_eq!(phone.asks(next).await, 2, "one version back is kept");
        phone.closes().await;
    })
    .await;
}

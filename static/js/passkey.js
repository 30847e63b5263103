// Adding a passkey and signing in with one. Browsers speak bytes, the server speaks base64url.
const bytes = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));
const text = (buffer) =>
  btoa(String.fromCharCode(...new Uint8Array(buffer))).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");

const add = document.querySelector("[data-passkey-add]");
const prove = document.querySelector("[data-passkey-proof]");
const second = document.querySelector("[data-passkey-second]");
const signIn = document.querySelector("[data-passkey-sign-in]");
const words = document.querySelector("[data-passkey-words]");

function say(what) {
  words.textContent = what;
  words.hidden = false;
}

/** Posts JSON. A refusal is a page for people: its words are shown where they were asked for. */
async function post(path, body) {
  const answer = await fetch(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body ?? {}),
  });
  if (answer.ok) return answer.status === 204 ? null : answer.json();
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const said = [...page.querySelectorAll("main li, main h1 + p")].map((part) => part.textContent.trim());
  throw new Error(said.join(" ") || "The passkey was not accepted.");
}

const named = (list) => (list ?? []).map((one) => ({ ...one, id: bytes(one.id) }));

async function addPasskey() {
  const passphrase = document.getElementById("passkey-passphrase")?.value;
  const { id, options } = await post("/club/you/passkeys/begin", { passphrase });
  const asked = options.publicKey;
  const made = await navigator.credentials.create({
    publicKey: {
      ...asked,
      challenge: bytes(asked.challenge),
      user: { ...asked.user, id: bytes(asked.user.id) },
      excludeCredentials: named(asked.excludeCredentials),
    },
  });
  await post("/club/you/passkeys", {
    id,
    name: document.getElementById("passkey-name").value || "a passkey",
    credential: {
      id: made.id,
      rawId: text(made.rawId),
      type: made.type,
      response: {
        attestationObject: text(made.response.attestationObject),
        clientDataJSON: text(made.response.clientDataJSON),
      },
      extensions: {},
    },
  });
  location.reload();
}

/** Asks the browser for a passkey. */
async function given({ publicKey: asked }) {
  const credential = await navigator.credentials.get({
    publicKey: { ...asked, challenge: bytes(asked.challenge), allowCredentials: named(asked.allowCredentials) },
  });
  const { authenticatorData, clientDataJSON, signature, userHandle } = credential.response;
  return {
    id: credential.id,
    rawId: text(credential.rawId),
    type: credential.type,
    response: {
      authenticatorData: text(authenticatorData),
      clientDataJSON: text(clientDataJSON),
      signature: text(signature),
      userHandle: userHandle ? text(userHandle) : null,
    },
    extensions: {},
  };
}

async function signInByPasskey() {
  const { id, options } = await post("/sign-in/passkey/begin");
  const shared = document.querySelector("[name=shared]").checked;
  await post("/sign-in/passkey", { id, shared, credential: await given(options) });
  location.assign("/club");
}

/** Answers with the passkey that the club asks for beside the passphrase. */
async function signInByBoth() {
  const { passkeySecond: id, options } = second.dataset;
  await post("/sign-in/second", { id, credential: await given(JSON.parse(options)) });
  location.assign("/club");
}

/** Shows who somebody is who is signed in, and goes on with the form that asked for it. */
async function proveByPasskey() {
  const { id, options } = await post("/club/you/proof/begin");
  await post("/club/you/proof", { id, credential: await given(options) });
  if ("stays" in prove.dataset) say("You have shown who you are. It holds for five minutes on this device.");
  else document.querySelector("[data-proof]").submit();
}

/** Shows what needs a script only where there is one, and a browser that has passkeys. */
function offer(part, act) {
  if (!part || !window.PublicKeyCredential) return;
  part.hidden = false;
  part.addEventListener("submit", (event) => {
    event.preventDefault();
    words.hidden = true;
    // Somebody who closes the browser's own window has changed their mind: no fault, but a word.
    act().catch((error) => say(error.name === "NotAllowedError" ? "No passkey was given. Try again, or use your passphrase." : error.message));
  });
}

offer(add, addPasskey);
offer(prove, proveByPasskey);
offer(second, signInByBoth);
offer(signIn, signInByPasskey);

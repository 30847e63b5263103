// A shared worker: one stream for each address, told on to every page that listens to it.
const streams = new Map();

onconnect = ({ ports: [port] }) => {
  port.onmessage = ({ data }) => {
    if (data.hear) join(data.hear, port);
    if (data.leave) leave(data.leave, port);
  };
};

function join(url, port) {
  let known = streams.get(url);
  if (known) {
    known.ports.add(port);
    // The page was made before it joined.
    if (known.source.readyState === EventSource.OPEN) port.postMessage({ changed: "" });
    return;
  }
  const source = new EventSource(url);
  known = { source, ports: new Set([port]) };
  streams.set(url, known);
  const tell = (message) => known.ports.forEach((to) => to.postMessage(message));
  source.addEventListener("changed", (event) => tell({ changed: event.data === "all" ? "" : event.data }));
  source.onopen = () => {
    // What happened before the stream was open, or while it was broken, is not told again: have the pages look.
    tell({ open: true });
    tell({ changed: "" });
  };
  source.onerror = () => tell({ open: false });
}

function leave(url, port) {
  const known = streams.get(url);
  known?.ports.delete(port);
  if (known && known.ports.size === 0) {
    known.source.close();
    streams.delete(url);
  }
}

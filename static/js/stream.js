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
  if (!known) {
    const source = new EventSource(url);
    known = { source, ports: new Set(), open: true };
    const tell = (message) => known.ports.forEach((to) => to.postMessage(message));
    source.addEventListener("changed", (event) => tell({ changed: event.data }));
    source.addEventListener("open", () => {
      // What happened while the stream was broken is not told again: have the pages look.
      if (!known.open) tell({ changed: "" });
      known.open = true;
      tell({ open: true });
    });
    source.addEventListener("error", () => {
      known.open = false;
      tell({ open: false });
    });
    streams.set(url, known);
  }
  known.ports.add(port);
}

function leave(url, port) {
  const known = streams.get(url);
  known?.ports.delete(port);
  if (known && known.ports.size === 0) {
    known.source.close();
    streams.delete(url);
  }
}

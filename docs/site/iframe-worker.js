// The search works in a Worker, which no browser starts for a page that was opened from a disk. There
// its script runs in a hidden frame in place of it: HTML Living Standard, dedicated workers, as far as
// a search needs them. On a server nothing is changed.
if (location.protocol === "file:") {
  window.Worker = class IFrameWorker extends EventTarget {
    constructor(script) {
      super();
      this.waiting = [];
      this.frame = document.createElement("iframe");
      this.frame.hidden = true;
      // A frame of its own document shares this page's origin, unlike another file.
      this.frame.srcdoc = "<!doctype html><title>Search</title>";
      this.frame.addEventListener("load", () => this.begin(String(script)), { once: true });
      document.documentElement.append(this.frame);
    }

    begin(script) {
      const inside = this.frame.contentWindow;
      inside.postMessage = (data) => this.dispatchEvent(new MessageEvent("message", { data }));
      const element = inside.document.createElement("script");
      element.src = script;
      element.addEventListener("error", () => this.dispatchEvent(new Event("error")));
      element.addEventListener("load", () => {
        this.ready = true;
        for (const data of this.waiting.splice(0)) this.postMessage(data);
      });
      inside.document.head.append(element);
    }

    postMessage(data) {
      if (!this.ready) {
        this.waiting.push(data);
        return;
      }
      const inside = this.frame.contentWindow;
      inside.dispatchEvent(new inside.MessageEvent("message", { data }));
    }

    terminate() {
      this.frame.remove();
    }
  };
}

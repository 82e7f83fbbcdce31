"use strict";
/* What only the browser can know: which paper is wanted, how wide the picture is, and whether the server still answers. */
(function () {
  const root = document.documentElement;
  const wantsDark = window.matchMedia("(prefers-color-scheme: dark)");
  const LOST_AFTER_MS = 5000;

  function kept() {
    try {
      return window.localStorage.getItem("paper");
    } catch (refused) {
      return null;
    }
  }
  function keep(name) {
    try {
      window.localStorage.setItem("paper", name);
    } catch (refused) {
      /* private windows keep nothing: the choice lasts until the page is closed */
    }
  }
  function shown() {
    return root.dataset.theme || (wantsDark.matches ? "dark" : "light");
  }
  if (kept() === "dark" || kept() === "light") {
    root.dataset.theme = kept();
  }

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    ledger: {
      paper: function (clicks) {
        if (clicks) {
          root.dataset.theme = shown() === "dark" ? "light" : "dark";
          keep(root.dataset.theme);
        }
        return shown();
      },
      width: function () {
        return Math.round(root.clientWidth);
      },
      /* Whoever opens a form goes on in its first field. */
      toField: function (key) {
        if (key) {
          window.setTimeout(function () {
            const field = document.getElementById("shelve-reason");
            if (field) {
              field.focus();
            }
          }, 50);
        }
        return "";
      },
      followPaper: function (tick, wanted, drawn) {
        return wanted === drawn ? window.dash_clientside.no_update : wanted;
      },
    },
  });

  /* The live page carries the server's beat. When it stops changing, nothing on the page is live any more. */
  let beat = "";
  let changed = Date.now();
  let clock = "";
  window.setInterval(function () {
    const at = document.getElementById("beat");
    const banner = document.getElementById("link-lost");
    if (!at || !banner || !at.textContent) {
      changed = Date.now();
      delete root.dataset.link;
      if (banner) {
        banner.textContent = "";
      }
      return;
    }
    if (at.textContent !== beat) {
      beat = at.textContent;
      clock = at.dataset.clock || clock;
      changed = Date.now();
      delete root.dataset.link;
      banner.textContent = "";
    } else if (Date.now() - changed > LOST_AFTER_MS) {
      root.dataset.link = "lost";
      banner.textContent =
        "No answer from this page's server since " + clock + ". Everything below is old: read the machine's own panel.";
    }
  }, 500);

  document.addEventListener("keydown", function (event) {
    if (event.key === "Escape") {
      const cancel = document.getElementById("shelve-cancel");
      if (cancel && !document.getElementById("shelve-form").hidden) {
        cancel.click();
      }
    }
  });
})();

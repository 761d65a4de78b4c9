// Day or night as it was chosen, before the first paint. A classic script, because modules run later.
(() => {
  try {
    const chosen = localStorage.getItem("theme");
    if (chosen) document.documentElement.dataset.theme = chosen;
  } catch {
    // no storage: the browser's own preference holds
  }
})();

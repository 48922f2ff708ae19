// Updates the parts of a page that changed, when the server says that something
// did. Everything on the desk works without it.
(function () {
  'use strict';
  var main = document.querySelector('main[data-live]');
  if (!window.EventSource || !window.fetch || !(main || document.querySelector('[data-again]'))) { return; }
  document.documentElement.classList.add('live');
  var news = document.getElementById('news');
  var source = null;

  function busy(part) {
    // Nothing is taken away from under somebody who is typing or choosing.
    var fields = part.querySelectorAll('textarea, input:not([type=hidden]), select');
    for (var i = 0; i < fields.length; i++) {
      var f = fields[i];
      if (f === document.activeElement) { return true; }
      if (f.type === 'checkbox' || f.type === 'radio') {
        if (f.checked !== f.defaultChecked) { return true; }
      } else if (f.tagName === 'SELECT') {
        for (var k = 0; k < f.options.length; k++) {
          if (f.options[k].selected && !f.options[k].defaultSelected && k > 0) { return true; }
        }
      } else if (f.value !== f.defaultValue) { return true; }
    }
    return false;
  }

  function say(text, link) {
    news.textContent = text + ' ';
    if (link) {
      var a = document.createElement('a');
      a.href = window.location.href;
      a.textContent = 'Load the page';
      news.appendChild(a);
    }
    news.hidden = false;
  }

  function put(page) {
    var waiting = false;
    document.querySelectorAll('[data-part]').forEach(function (old) {
      var fresh = page.querySelector('[data-part="' + old.dataset.part + '"]');
      if (!fresh || fresh.innerHTML === old.innerHTML) { return; }
      if (busy(old)) { waiting = true; return; }
      var open = {};
      old.querySelectorAll('details[id]').forEach(function (d) { open[d.id] = d.open; });
      old.replaceWith(fresh);
      Object.keys(open).forEach(function (id) {
        var d = document.getElementById(id);
        if (d) { d.open = open[id]; }
      });
    });
    return waiting;
  }

  function load() {
    return fetch(window.location.href, { credentials: 'same-origin', redirect: 'error' }).then(function (r) {
      if (!r.ok) { throw new Error('status'); }
      return r.text();
    }).then(function (html) {
      return put(new DOMParser().parseFromString(html, 'text/html'));
    });
  }

  function refresh() {
    load().then(function (waiting) {
      say(waiting ? 'There is news. Finish what you are typing, then load the page.' : 'Updated just now.', waiting);
    }).catch(function () { say('There is news.', true); });
  }

  function again() {
    // What is still being worked out is looked at until it is there.
    var part = document.querySelector('[data-again]');
    if (!part) { say('It is done.'); return; }
    window.setTimeout(function () {
      load().then(again).catch(function () { say('This could not be loaded.', true); });
    }, 1000 * Number(part.dataset.again));
  }

  function listen() {
    if (source || document.hidden) { return; }
    source = new EventSource(main.dataset.live);
    source.addEventListener('ready', function (e) {
      // Something may have happened while nobody was listening.
      if (main.dataset.seen && main.dataset.seen !== e.data) { refresh(); }
      main.dataset.seen = e.data;
    });
    source.addEventListener('news', function (e) { main.dataset.seen = e.data; refresh(); });
    source.addEventListener('ended', function () { source.close(); say('You have been signed out.', true); });
  }

  if (document.querySelector('[data-again]')) { again(); }
  if (!main) { return; }
  document.addEventListener('visibilitychange', function () {
    if (document.hidden && source) { source.close(); source = null; }
    listen();
  });
  listen();
})();

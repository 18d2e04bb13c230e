// A step back or forward goes to what an address said then; a link to another part of a ride keeps what it does not
// speak of. Only the browser itself makes events that can be trusted, so that is how the two are told apart.
window.addEventListener("popstate", (event) => {
  if (event.isTrusted) window.ridelogBack = window.location.href;
}, true);

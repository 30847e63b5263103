// A filled-in worksheet is a link, and a short link is better sent: fields left empty stay out of the address.
// Without this script they are in it and change nothing.

const form = document.querySelector("[data-readings]");
form.addEventListener("formdata", ({ formData }) => {
  for (const [name, text] of [...formData]) if (!String(text).trim()) formData.delete(name);
});

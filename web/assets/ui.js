// Theme without a new page. Without this script the same buttons post the form.
document.addEventListener("click", (e) => {
  const button = e.target.closest(".look button");
  if (!button) return;
  e.preventDefault();
  const theme = button.value;
  document.documentElement.dataset.theme = theme;
  document.cookie = `theme=${theme}; path=/; max-age=31536000; samesite=lax`;
  document.querySelector(theme === "dark" ? ".look .to-bay" : ".look .to-dark").focus();
});

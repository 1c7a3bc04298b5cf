// Holds the server alive, and says that the page works.
fetch("alive");
const about = await (await fetch("about")).json();
document.getElementById("told").textContent = "Version " + about.version;

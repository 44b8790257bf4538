// The chart that is in sight, as a PNG of twice its size, in the colours of the page.
function savePicture(figure, name, chartCss, look) {
  const source = [...figure.querySelectorAll("svg")].find((svg) => svg.getBoundingClientRect().width > 0);
  const svg = source.cloneNode(true);
  const { width, height } = source.viewBox.baseVal;
  svg.setAttribute("width", width);
  svg.setAttribute("height", height);
  const css = chartCss.replace(/var\((--[a-z-]+)\)/g, (_, variable) => look.getPropertyValue(variable));
  const style = document.createElementNS("http://www.w3.org/2000/svg", "style");
  style.textContent = css;
  svg.prepend(style);
  const image = new Image();
  image.onload = () => {
    const canvas = document.createElement("canvas");
    canvas.width = 2 * width;
    canvas.height = 2 * height;
    const pen = canvas.getContext("2d");
    pen.fillStyle = look.getPropertyValue("--st-background-color") || "#fff";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.drawImage(image, 0, 0, canvas.width, canvas.height);
    const link = document.createElement("a");
    link.download = "tailsway-" + name + ".png";
    link.href = canvas.toDataURL("image/png");
    link.click();
  };
  image.src = "data:image/svg+xml;charset=utf-8," + encodeURIComponent(new XMLSerializer().serializeToString(svg));
}

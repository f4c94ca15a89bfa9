/** What runs in a report's page: the viewer, its layers and the switch of light and dark. A plain script. */

/** The data of the plate's tiles, which the page holds as JSON. */
interface PlateData {
  readonly width: number;
  readonly height: number;
  readonly halvings: number;
  readonly levels: number;
  readonly tileSize: number;
  /** JPEGs in base 64, by `level/x/y`. */
  readonly tiles: Readonly<Record<string, string>>;
}

{
  const byId = <E extends Element>(id: string): E => document.getElementById(id) as unknown as E;
  const data = JSON.parse(byId<HTMLElement>('plate-data').textContent ?? '') as PlateData;
  const still = matchMedia('(prefers-reduced-motion: reduce)').matches;

  const stage = byId<HTMLElement>('viewer');
  // The viewer is as wide as it may be, and as high as the plate is then, within limits.
  stage.parentElement!.style.setProperty('--shape', String(data.width / data.height));

  const addressOf = (level: number, x: number, y: number): string | undefined => data.tiles[`${level}/${x}/${y}`];
  const viewer = OpenSeadragon({
    element: stage,
    drawer: 'canvas',
    showNavigationControl: false,
    animationTime: still ? 0 : 0.5,
    visibilityRatio: 0.5,
    maxZoomPixelRatio: 8,
    minZoomImageRatio: 0.8,
    gestureSettingsMouse: { clickToZoom: false, dblClickToZoom: true },
    tileSources: {
      ...{ width: data.width, height: data.height, tileSize: data.tileSize, tileOverlap: 0 },
      ...{ minLevel: 0, maxLevel: data.levels - 1 },
      getTileUrl: (level: number, x: number, y: number) => `data:image/jpeg;base64,${addressOf(level, x, y)}`,
      tileExists: (level: number, x: number, y: number) => addressOf(level, x, y) !== undefined,
    } as unknown as string,
  });

  const canvas = viewer.canvas as HTMLElement;
  for (const name of ['role', 'aria-label']) {
    canvas.setAttribute(name, stage.getAttribute(name)!);
    stage.removeAttribute(name);
  }

  /** Screen px for a px of the master. */
  const scaleOf = (): number =>
    (viewer.viewport.viewportToImageZoom(viewer.viewport.getZoom(true)) * devicePixelRatio) / 2 ** data.halvings;

  const follow = (): void => {
    const origin = viewer.viewport.pixelFromPoint(new OpenSeadragon.Point(0, 0), true);
    const cssPx = scaleOf() / devicePixelRatio;
    const space = byId<SVGGElement>('space');
    // Pixel centres are whole numbers, and the viewer's origin is a corner.
    space.setAttribute('transform', `translate(${origin.x} ${origin.y}) scale(${cssPx}) translate(0.5 0.5)`);
    space.style.setProperty('--k', String(1 / cssPx));
    const { x: width, y: height } = viewer.viewport.getContainerSize();
    // On paper the drawing is as much smaller as the picture.
    byId('overlay').setAttribute('viewBox', `0 0 ${width} ${height}`);
    stage.parentElement!.style.setProperty('--ratio', String(width / height));
    byId<HTMLOutputElement>('scale').value = `${Math.round(scaleOf() * 1000) / 10} %`;
    viewer.drawer.setImageSmoothingEnabled(scaleOf() * 2 ** data.halvings < 0.999);
  };
  viewer.addHandler('update-viewport', follow);
  viewer.addHandler('open', () => {
    const image = viewer.world.getItemAt(0);
    const tell = (): void => stage.setAttribute('aria-busy', String(!image.getFullyLoaded()));
    image.addHandler('fully-loaded-change', tell);
    tell();
    follow();
  });

  /** A px of the finest level on each px of the screen, the two grids in line. */
  const trueSize = (): void => {
    const { viewport } = viewer;
    viewport.zoomTo(viewport.imageToViewportZoom(1 / devicePixelRatio), undefined, true);
    viewport.applyConstraints(true);
    const origin = viewport.pixelFromPoint(new OpenSeadragon.Point(0, 0), true);
    const off = (at: number): number => at - Math.round(at * devicePixelRatio) / devicePixelRatio;
    viewport.panBy(viewport.deltaPointsFromPixels(new OpenSeadragon.Point(off(origin.x), off(origin.y)), true), true);
  };
  const zoomBy = (factor: number): void => {
    viewer.viewport.zoomBy(factor);
    viewer.viewport.applyConstraints();
  };
  byId('whole').addEventListener('click', () => viewer.viewport.goHome(still));
  byId('true-size').addEventListener('click', trueSize);
  byId('closer').addEventListener('click', () => zoomBy(1.6));
  byId('farther').addEventListener('click', () => zoomBy(1 / 1.6));
  canvas.addEventListener('keydown', (event) => {
    if (event.key === '1') trueSize();
  });
  // The viewer would turn and mirror the plate by these keys.
  viewer.addHandler('canvas-key', (event) => {
    const { key } = event.originalEvent as KeyboardEvent;
    if ('rRfF'.includes(key)) event.preventDefaultAction = true;
  });
  // The wheel moves the page, unless the viewer is what one works with.
  viewer.addHandler('canvas-scroll', (event) => {
    if (stage.contains(document.activeElement) || (event.originalEvent as WheelEvent).ctrlKey) return;
    event.preventDefaultAction = true;
    event.preventDefault = false;
  });

  for (const box of document.querySelectorAll<HTMLInputElement>('input[data-layer]')) {
    const show = (): void => {
      const layer = byId<SVGGElement>(`layer-${box.dataset.layer}`);
      if (box.checked) layer.removeAttribute('display');
      else layer.setAttribute('display', 'none');
    };
    box.addEventListener('change', show);
    show();
  }
  const brighter = byId<HTMLInputElement>('brighter');
  const brighten = (): unknown => stage.classList.toggle('brighter', brighter.checked);
  brighter.addEventListener('change', brighten);
  brighten();

  const dark = matchMedia('(prefers-color-scheme: dark)');
  const root = document.documentElement;
  const button = byId<HTMLButtonElement>('theme');
  const isDark = (): boolean => (root.dataset.theme ?? (dark.matches ? 'dark' : 'light')) === 'dark';
  const name = (): void => {
    button.textContent = isDark() ? 'Light' : 'Dark';
  };
  button.addEventListener('click', () => {
    root.dataset.theme = isDark() ? 'light' : 'dark';
    name();
  });
  dark.addEventListener('change', name);
  name();
  button.hidden = false;
}
